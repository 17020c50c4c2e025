"""Boards that come and go all day, and how well the standing climate was kept."""

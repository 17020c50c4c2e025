"""Speed, books and control quality against their targets."""

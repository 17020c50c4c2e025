"""The page itself: HTML and JSON over HTTP."""

"""Files to valid config classes: strictly, with every problem at once, and what is wrong between files."""

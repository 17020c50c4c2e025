"""What-if cases for a simulated chamber: their files, and what they make of a scene."""

"""The only room that sees both the controller and the chamber model: it puts them together and judges the result."""

"""The operator's page: reads the store of one chamber or of a whole site, and commands only through the desk."""

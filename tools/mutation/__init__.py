"""Mutation tests: small slips are made in the code, one at a time, and the tests have to notice each of them."""

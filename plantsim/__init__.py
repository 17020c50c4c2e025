"""The chamber model that stands in for hardware: air, surfaces, product, equipment, instruments, remote I/O.

Opens no files and knows nothing of the controller; all it needs arrives as parameters.
"""

"""The record: all there is between control and everybody else."""

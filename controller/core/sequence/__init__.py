"""The recipe and how it is carried out: phases, their ends, moving setpoints."""

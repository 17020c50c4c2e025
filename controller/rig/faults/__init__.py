"""What goes wrong around the model: files of faults, wires, people, the telling of it."""

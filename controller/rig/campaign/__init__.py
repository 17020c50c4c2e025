"""Many simulated chambers in trouble: swarm runs from seeds, judged by invariants, by the truth and after healing."""

"""From raw words to values: scaling, quality, frozen channels, several probes of one quantity."""

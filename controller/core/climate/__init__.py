"""What the chamber is like: moist air, pairs of probes, places, siblings that disagree, dew margin."""

"""What a chamber is heated, fogged and aired with, as data."""

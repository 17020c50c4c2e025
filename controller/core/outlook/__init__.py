"""Looking ahead with the reduced chamber: forecast, newcomers, the heat of a day."""

"""The loop and what it needs of the world: clocks, orders, restart, logs. Nothing else speaks to a device."""

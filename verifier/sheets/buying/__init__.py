"""What a layout takes, what it costs, and in which order to buy it."""

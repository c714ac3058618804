"""The real thing as processes, killed, flushed and restarted through a simulated season."""

"""What energy costs, what the equipment saves, and what losses cost."""

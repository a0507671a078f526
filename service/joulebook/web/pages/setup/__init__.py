"""The setup pages: what an owner enters, once, and what he stands for."""

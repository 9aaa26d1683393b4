"""Carbon nitrogen."""

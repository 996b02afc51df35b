"""The long campaigns, each with a command of its own; a short seeded share is in the tests."""

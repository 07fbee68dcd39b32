"""A run carried over to a changed study."""

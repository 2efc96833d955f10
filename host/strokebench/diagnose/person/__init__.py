"""Questions whose evidence comes from a person: the guided tests."""

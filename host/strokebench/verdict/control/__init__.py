"""Control charts of a golden part: a part that is kept to check the bench."""

"""What a current alone shows, where a part was seen to be switched on and off."""

"""The bench's side of the link: frames, requests, rows, bursts and the raw stream."""

"""The host's side of the link: ports, frames, requests and their answers."""

"""Recordings as somebody else's instruments would write them, with known truth: are they read and judged?"""

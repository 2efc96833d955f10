"""The panel's pages, and the pieces that they are put together from."""

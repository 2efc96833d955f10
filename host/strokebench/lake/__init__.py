"""The lake: runs of many benches and workshops in one folder or object store, under pseudonyms."""

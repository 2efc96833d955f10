"""The control tick: its bookkeeping, the changes of state, the self-test, the event log."""

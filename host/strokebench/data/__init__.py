"""What everybody hands on: samples, one run's data, findings."""

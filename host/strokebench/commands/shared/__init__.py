"""What several commands share: their options, and how a run is recorded, judged and shown."""

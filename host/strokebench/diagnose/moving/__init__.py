"""Questions for parts that move between stops: travel, friction, spring, binding, sensor."""

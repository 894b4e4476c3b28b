//! Weather and position → density and wind at the road.

"""What the car does: sessions as read, road load, and the demand sampled ten times a second."""

"""What a charge-cooler core does: pure functions and data, SI units, nothing of searching.

Reading order: `properties`, `core`, `fins`, `heat_transfer`, `pressure_drop`, `ports`, `envelope`, `rating`.
"""

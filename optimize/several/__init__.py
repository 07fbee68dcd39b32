"""Several runs beside each other, and several cores from one casting."""

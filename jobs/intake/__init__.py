"""What is known about a vehicle when it arrives: VIN, trouble codes, work that triggers."""

"""This app's sections of a shop file: the vehicle library and the procedures."""

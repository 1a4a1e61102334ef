"""Issuing and sending what is told."""

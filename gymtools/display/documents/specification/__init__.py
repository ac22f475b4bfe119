"""Specification text: what a bidder prices, an installer builds and an inspector checks."""

"""Measurements of coldsift against other ways of doing its job; run by hand, not in CI."""

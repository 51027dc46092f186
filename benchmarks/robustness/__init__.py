"""What coldsift withstands: lines accounted, files bent, runs killed, text that attacks, clocks that run wrong."""

"""What coldsift withstands: bent files, killed runs, text that attacks, clocks that run wrong."""

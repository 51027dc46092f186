"""How fast coldsift is, beside what else reads and judges the same files on the same machine."""

"""From evidence to findings, hypotheses and the next check."""

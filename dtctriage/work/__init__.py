"""The work on an order after its intake: what was measured, what it says, and what to do next."""

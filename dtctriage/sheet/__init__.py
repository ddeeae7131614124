"""The triage sheet as text, HTML, PDF and JSON."""

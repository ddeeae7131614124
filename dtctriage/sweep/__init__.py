"""Who answers, who is silent, what each reports."""

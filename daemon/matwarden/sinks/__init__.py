"""Who is told: each sink takes events from a bounded queue and can never delay a verdict."""

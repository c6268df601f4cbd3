"""What a tub can do, found from its own record. Needs matwarden[analysis]; the running daemon never imports it."""

"""The proof on the page: a plate for each check, its figure against its allowance, the worst pose, cause and cure."""

"""What people and devices see: one module a screen, the JSON API, sign-in, live push. Translation and nothing else."""

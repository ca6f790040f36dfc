"""Forms: what a person types, cleaned into what an entry takes.  One file a stage."""

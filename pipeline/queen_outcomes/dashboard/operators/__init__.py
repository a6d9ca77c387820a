"""The page on operators, a module a part of it."""

"""Look at a station's own sheets and propose how they are to be read: guessing stays here.

`running` is a whole run; below it `written`, `asked` and `seen`, each of which imports only
what is below it.
"""

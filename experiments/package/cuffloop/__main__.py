"""`python -m cuffloop`: the command line."""
from cuffloop.command import main

if __name__ == "__main__":
    main()

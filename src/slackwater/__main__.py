"""`python -m slackwater`: the same as the command."""

from slackwater.cli.app import main

if __name__ == "__main__":
    main()

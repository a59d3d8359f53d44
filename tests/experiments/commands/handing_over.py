"""What the tests of commands share: which options reach the job."""


def handed_over(cuffloop, monkeypatch, line, job):
    """The options that a command line hands to its job, which gives the exit status."""
    asked = []

    def done(options):
        asked.append(options)
        return 7

    monkeypatch.setattr(f"experiments.commands.jobs.{job}", done)
    assert cuffloop(*line).status == 7
    return asked

"""Pages held against axe, an accessibility checker of others."""


def check_accessible(browser):
    """Check that the checker has looked at the page that is open, and found nothing serious."""
    from axe_selenium_python import Axe

    axe = Axe(browser)
    axe.inject()
    found = axe.run()
    assert [] == [v["id"] for v in found["violations"] if v["impact"] in ("serious", "critical")]
    assert len(found["passes"]) > 10

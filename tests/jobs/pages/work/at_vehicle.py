"""The surround-view job with browsers beside it: what the tests of the technician's pages share."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import unescape

from django.test import Client

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Membership
from shopcal.accounts.selectors.memberships import SESSION_KEY
from tests.jobs.services.at_work import ACROSS, CHECKED, UNITS, Job

__all__ = ["ACROSS", "CHECKED", "UNITS", "Job", "Page", "page_for", "readings"]


@dataclass
class Page:
    """A person's browser at one vehicle. ``status`` and ``text`` are of the last answer."""

    job: Job
    client: Client
    status: int = 0
    text: str = ""

    def look(self, query: str = "", *, htmx: bool = False) -> Page:
        headers = {"HX-Request": "true"} if htmx else {}
        answer = self.client.get(f"/work/{self.job.visit_id}/{query}", headers=headers)
        return self._keep(answer.status_code, answer.content)

    def act(self, name: str, *, htmx: bool = False, **said: object) -> Page:
        """Post a form; without htmx the redirect is followed, as a browser does."""
        said.setdefault("calibration", str(self.job.calibration_id))
        headers = {"HX-Request": "true"} if htmx else {}
        answer = self.client.post(
            f"/work/{self.job.visit_id}/{name}/", said, follow=not htmx, headers=headers
        )
        return self._keep(answer.status_code, answer.content)

    @property
    def title(self) -> str:
        return re.search(r"<h1[^>]*>(.*?)</h1>", self.text, re.DOTALL)[1].strip()  # type: ignore[index]

    def _keep(self, status: int, content: bytes) -> Page:
        self.status, self.text = status, unescape(content.decode())
        return self


def page_for(job: Job, actor: Actor) -> Page:
    membership = Membership.objects.select_related("user").get(pk=actor.membership_id)
    client = Client()
    client.force_login(membership.user, backend="django.contrib.auth.backends.ModelBackend")
    session = client.session
    session[SESSION_KEY] = membership.pk
    session.save()
    return Page(job, client)


def readings(values: dict[str, str]) -> dict[str, str]:
    """Readings as the form names them."""
    return {f"reading-{name}-1": typed for name, typed in values.items()}

"""Logs a person in; one whose rights have all ended stays out."""

from typing import Any

from django.contrib.auth.backends import BaseBackend
from django.contrib.auth.hashers import make_password
from django.http import HttpRequest

from lots.models.scratch import Login
from lots.queries.house import rights_of


class PersonBackend(BaseBackend):
    def authenticate(
        self, request: HttpRequest | None, username: str = "", password: str = "", **_: Any
    ) -> Login | None:
        login = Login.objects.select_related("person").filter(username=username).first()
        if login is None:
            make_password(password)  # takes as long as a wrong password does
            return None
        if not login.check_password(password) or not self.user_can_authenticate(login):
            return None
        return login

    def user_can_authenticate(self, login: Login) -> bool:
        return login.is_active and bool(rights_of(login.person))

    def get_user(self, user_id: int) -> Login | None:
        login = Login.objects.select_related("person").filter(pk=user_id).first()
        return login if login is not None and self.user_can_authenticate(login) else None

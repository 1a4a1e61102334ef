"""A person who signs in with an email address."""

from __future__ import annotations

from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone


class UserManager(BaseUserManager["User"]):
    """Creates people; addresses are kept in lower case so that one person has one account."""

    def create_user(
        self, email: str, name: str, password: str | None = None, **fields: Any
    ) -> User:
        """A person who can sign in; without a password they cannot until one is set."""
        if not email:
            raise ValueError("A person needs an email address to sign in.")
        user = self.model(email=email.strip().lower(), name=name.strip(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(
        self, email: str, name: str, password: str | None = None, **fields: Any
    ) -> User:
        return self.create_user(email, name, password, is_staff=True, is_superuser=True, **fields)

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email=(username or "").strip().lower())


class User(AbstractBaseUser, PermissionsMixin):
    """A person, who may belong to several shops. Their role there says what they may do."""

    email = models.EmailField("email address", max_length=254, unique=True)
    name = models.CharField(max_length=150)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)
    joined_at = models.DateTimeField(default=timezone.now, editable=False)

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    objects = UserManager()

    class Meta:
        ordering = ["name", "email"]
        constraints = [
            models.UniqueConstraint(Lower("email"), name="user_email_once_whatever_the_case"),
        ]

    def __str__(self) -> str:
        return self.name or self.email

    def get_full_name(self) -> str:
        return self.name

    def get_short_name(self) -> str:
        return self.name.split(" ")[0]

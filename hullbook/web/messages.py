"""What one page has to say on the next."""

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage


class MessagesInCookie(CookieStorage):
    """In a cookie named as the others are: over https only this host can have set it (RFC 6265bis, `__Host-`)."""

    cookie_name = settings.MESSAGES_COOKIE_NAME

"""What rooms above are told, since agreements know nothing of them."""

from django.dispatch import Signal

#: Sent inside the transaction in which a site is retired. Arguments: site, on (date), why, by.
site_retired = Signal()

"""The binding: how a user's core maps onto the harness, checked before any simulator starts."""

"""The notebook server's connection of a page with its kernel.

A page that hears nothing for a while connects anew. The server then closes its first connection,
while the page may still be sending on it; jupyter_server no longer knows how these messages are
written, and reads the binary ones as a list of a hundred million lengths: 3.4 GB and some ten
seconds in which no page hears anything, and the message is lost.
"""

from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection


class KernelConnection(ZMQChannelsWebsocketConnection):
    """A connection that reads what still arrives as the page and the server had agreed."""

    _agreed = None

    def connect(self):
        """Connect with the kernel; see the class that this one extends."""
        self._agreed = super().subprotocol
        return super().connect()

    @property
    def subprotocol(self):
        """How messages are written, as agreed when the page connected."""
        return self._agreed

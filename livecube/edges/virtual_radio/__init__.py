"""A radio without an aerial: bleak on one side, a cube's GATT on the other, bumble between.

Everything from bleak's public interface to the bytes of the GATT exchange is real; range,
pairing dialogs and the real timing of radios are not. It needs the extra ``virtual``.
"""

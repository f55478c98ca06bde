"""Reference photos for the demo: invented faces that the program draws itself, never a photo of a real person.

`scene` gives the picture and where its heads are, `face` the picture alone, `as_phone_jpeg` the file a phone would make
of it, so that the demo's photos come in through the same intake as real ones. The same seed gives the same face.
"""

from portraitq.demo.faces.phone import as_phone_jpeg
from portraitq.demo.faces.scene import Scene, face, scene

__all__ = ["Scene", "as_phone_jpeg", "face", "scene"]

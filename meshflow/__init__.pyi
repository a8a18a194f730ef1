from meshflow.drawing import write_dxf as write_dxf
from meshflow.drawing import write_svg as write_svg
from meshflow.flatten import flatten as flatten
from meshflow.job.run import run as run
from meshflow.mesh.carrier import carrier_surface as carrier_surface
from meshflow.mesh.check import check as check
from meshflow.mesh.mend import mend as mend
from meshflow.mesh.read import read_mesh as read_mesh
from meshflow.mesh.write import write_mesh as write_mesh
from meshflow.nest import nest as nest
from meshflow.outline import outline as outline
from meshflow.regions import neutral_surface as neutral_surface
from meshflow.regions import select as select

__version__: str
__all__: list[str]

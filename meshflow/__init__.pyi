from meshflow.drawing import write_dxf as write_dxf
from meshflow.drawing import write_pdf as write_pdf
from meshflow.drawing import write_svg as write_svg
from meshflow.flatten import flatten as flatten
from meshflow.job.lines import read_line as read_line
from meshflow.job.run import run as run
from meshflow.mesh.align import datum_by_points as datum_by_points
from meshflow.mesh.align import move as move
from meshflow.mesh.align import principal_axes as principal_axes
from meshflow.mesh.carrier import carrier_surface as carrier_surface
from meshflow.mesh.check import check as check
from meshflow.mesh.compare import compare as compare
from meshflow.mesh.girth import girth as girth
from meshflow.mesh.measure import area_of as area_of
from meshflow.mesh.measure import distance_between as distance_between
from meshflow.mesh.measure import geodesic_length as geodesic_length
from meshflow.mesh.measure import thickness_at as thickness_at
from meshflow.mesh.mend import mend as mend
from meshflow.mesh.mirror import mirror as mirror
from meshflow.mesh.read import read_mesh as read_mesh
from meshflow.mesh.register import register as register
from meshflow.mesh.symmetry import find_symmetry as find_symmetry
from meshflow.mesh.write import write_mesh as write_mesh
from meshflow.nest import nest as nest
from meshflow.outline import outline as outline
from meshflow.regions import neutral_surface as neutral_surface
from meshflow.regions import select as select

__version__: str
__all__: list[str]

"""The gloss that the solve allows for, against what any distribution of facets must obey."""

import numpy as np
import pytest
from scipy.integrate import quad

from lightcheck.relief.nuisance import GLOSS_ROUGHNESS, facets


@pytest.mark.parametrize("roughness", GLOSS_ROUGHNESS)
def test_facets_cover_the_surface_once(roughness):
    """Seen from above they fill it: the integral of facets times cosine over the half sphere is 1.

    Equation 4 of Walter, Marschner, Li and Torrance 2007 (from memory), by scipy's quadrature.
    """

    def ring(tilt):
        return 2 * np.pi * np.sin(tilt) * np.cos(tilt) * facets(np.cos(tilt), roughness)

    assert quad(ring, 0, np.pi / 2 - 1e-6)[0] == pytest.approx(1.0, abs=1e-6)


def test_a_smoother_surface_keeps_its_facets_closer_to_the_normal():
    steep = np.cos(np.radians(35.0))
    assert facets(steep, 0.3) / facets(1.0, 0.3) < 0.2 * facets(steep, 0.5) / facets(1.0, 0.5)

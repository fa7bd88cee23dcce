"""Formulas against general libraries: water tables, a network hydraulics engine, numerical methods.

Each library is a test-only dependency; where it is absent its tests skip and say so.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from pipeline.physics import friction, pressure, strength, stretch, surge, tension, water, well

G, FT, IN = 9.80665, 0.3048, 0.0254


def test_reference_water_against_the_iapws_formulation():
    """IAPWS-95 and its viscosity (library `iapws`), 1 to 90 degC at one atmosphere: density 0.01 %, viscosity 1 %."""
    iapws = pytest.importorskip("iapws", reason="the water-property library 'iapws' is not installed")
    celsius = np.arange(1.0, 91.0, 3.0)
    states = [iapws.IAPWS95(T=t + 273.15, P=0.101325) for t in celsius]
    np.testing.assert_allclose(water.density_kg_per_m3(celsius), [s.rho for s in states], rtol=1e-4)
    np.testing.assert_allclose(water.viscosity_dynamic_pa_s(celsius), [s.mu for s in states], rtol=5e-3)
    np.testing.assert_allclose(water.viscosity_kinematic_m2_per_s(celsius), [s.nu for s in states], rtol=5e-3)
    np.testing.assert_allclose(water.weight_specific_n_per_m3(celsius), [s.rho * G for s in states], rtol=1e-4)


def test_reference_bulk_modulus_against_the_iapws_formulation():
    """Sound speed in open water, sqrt(K/rho): the handbooks' design value of 2.07 GPa is within 4 % at 10 degC."""
    iapws = pytest.importorskip("iapws", reason="the water-property library 'iapws' is not installed")
    state = iapws.IAPWS95(T=283.15, P=0.101325)
    rigid = surge.wave_speed_m_per_s(state.rho, water.BULK_MODULUS_PA, 1e30, 0.03, 0.003, 0.3, surge.ANCHOR_TOP)
    assert rigid == pytest.approx(state.w, rel=0.04)


def drop_pipe(formula, length, bore, rough, heads):
    """One pipe between two reservoirs in the engine: flow [m3/s] and head lost [m]; SI units of the engine (L/s, mm)."""
    toolkit = pytest.importorskip(
        "epanet.toolkit", reason="the network hydraulics engine 'owa-epanet' is not installed"
    )
    project = toolkit.createproject()
    toolkit.init(project, "", "", toolkit.LPS, formula)
    toolkit.addnode(project, "pump", toolkit.RESERVOIR)
    toolkit.addnode(project, "tank", toolkit.RESERVOIR)
    toolkit.setnodevalue(project, 1, toolkit.ELEVATION, heads)
    toolkit.setnodevalue(project, 2, toolkit.ELEVATION, 0.0)
    toolkit.addlink(project, "drop", toolkit.PIPE, "pump", "tank")
    toolkit.setpipedata(project, 1, length, bore * 1000, rough, 0.0)
    toolkit.setoption(project, toolkit.ACCURACY, 1e-8)
    toolkit.solveH(project)
    flow = toolkit.getlinkvalue(project, 1, toolkit.FLOW) / 1000
    lost = toolkit.getlinkvalue(project, 1, toolkit.HEADLOSS)
    toolkit.deleteproject(project)
    return flow, lost if lost else heads


STRINGS = [(length, bore, head) for length in (20.0, 90.0, 250.0) for bore in (0.0209, 0.0266, 0.0351, 0.0525)
           for head in (1.0, 5.0, 20.0)]  # fmt: skip


def test_reference_hazen_williams_against_the_network_engine():
    """With the engine's constants (4.727, 1.852, 4.871 in feet and cfs) within 0.1 %; ours, unrounded, within 0.7 %."""
    toolkit = pytest.importorskip(
        "epanet.toolkit", reason="the network hydraulics engine 'owa-epanet' is not installed"
    )
    for length, bore, head in STRINGS:
        flow, lost = drop_pipe(toolkit.HW, length, bore, 140.0, head)
        theirs = 4.727 * (length / FT) * (flow / FT**3 / 140.0) ** 1.852 / (bore / FT) ** 4.871 * FT
        assert theirs == pytest.approx(head, rel=1e-3) and lost == pytest.approx(head, rel=1e-3)
        assert friction.head_hazen_williams_m(flow, length, bore, 140.0) == pytest.approx(head, rel=7e-3)


def test_reference_darcy_against_the_network_engine():
    """The engine takes an explicit factor: within 3 % of Colebrook at Reynolds 4,000 and above."""
    toolkit = pytest.importorskip(
        "epanet.toolkit", reason="the network hydraulics engine 'owa-epanet' is not installed"
    )
    viscosity = 1.1e-5 * FT**2  # the engine's own at 20 degC
    judged = 0
    for rough_mm in (0.0015, 0.046, 0.15):
        for length, bore, head in STRINGS:
            flow, _ = drop_pipe(toolkit.DW, length, bore, rough_mm, head)
            reynolds = friction.reynolds(friction.velocity_m_per_s(flow, bore), bore, viscosity)
            if reynolds >= 4000.0:
                judged += 1
                found = friction.head_friction_m(flow, length, bore, rough_mm / 1000, viscosity)
                assert found == pytest.approx(head, rel=0.03), (rough_mm, length, bore, head)
    assert judged > 90


def test_reference_laminar_flow_against_the_network_engine():
    """Hagen-Poiseuille in both, below Reynolds 2,000; 0.5 % for the engine's rounded viscosity."""
    toolkit = pytest.importorskip(
        "epanet.toolkit", reason="the network hydraulics engine 'owa-epanet' is not installed"
    )
    flow, _ = drop_pipe(toolkit.DW, 300.0, 0.02, 0.0015, 0.1)
    viscosity = 1.1e-5 * FT**2
    assert friction.reynolds(friction.velocity_m_per_s(flow, 0.02), 0.02, viscosity) < 2000.0
    assert friction.head_friction_m(flow, 300.0, 0.02, 1.5e-6, viscosity) == pytest.approx(0.1, rel=5e-3)


def test_reference_colebrook_root_by_a_general_solver():
    """The implicit formula (Colebrook 1939) solved by bracketing in SciPy: 300 cases within 1e-10; `fluids` within 1e-6."""
    optimize = pytest.importorskip("scipy.optimize", reason="SciPy is not installed")
    fluids = pytest.importorskip("fluids", reason="the fluid mechanics library 'fluids' is not installed")
    pick = np.random.default_rng(3)
    reynolds = 10 ** pick.uniform(np.log10(4000), 7, 300)
    rough = 10 ** pick.uniform(-7, -1.5, 300)
    ours = friction.factor_colebrook(reynolds, rough)
    for re, e, f in zip(reynolds, rough, ours, strict=True):
        root = optimize.brentq(lambda x, re=re, e=e: x + 2 * np.log10(e / 3.7 + 2.51 * x / re), 1.0, 30.0, xtol=1e-13)
        assert f == pytest.approx(1 / root**2, rel=1e-10)
        assert f == pytest.approx(fluids.friction.Colebrook(Re=re, eD=e), rel=1e-6)


def test_data_steel_schedules_against_the_fluids_library():
    """The library's schedule 40 and 80 tables (ASME B36.10) against schemas/reference/pipe_steel.csv."""
    piping = pytest.importorskip("fluids.piping", reason="the fluid mechanics library 'fluids' is not installed")
    from pipeline import schema

    def nominal(text):  # "1-1/4 in" is 1.25
        return float(sum(Fraction(part) for part in text.removesuffix(" in").split("-")))

    for row in schema.rows("reference/pipe_steel"):
        _, bore, outside, wall = piping.nearest_pipe(NPS=nominal(row["nominal_size"]), schedule=row["schedule"])
        for found, name in ((bore, "diameter_inside_mm"), (outside, "diameter_outside_mm"), (wall, "wall_mm")):
            assert found * 1000 == pytest.approx(float(row[name]), abs=0.12), (row["nominal_size"], name)


def strings(count, seed):
    """Invented strings, one a row, in SI: geometry, weights, levels, pressure, stiffness."""
    pick = np.random.default_rng(seed)
    length = pick.uniform(15, 450, count)
    bore = pick.uniform(0.016, 0.10, count)
    wall = bore * pick.uniform(0.05, 0.18, count)
    return {
        "length": length, "level": length * pick.uniform(0.0, 1.1, count), "pipe": pick.uniform(2, 150, count),
        "cable": pick.uniform(0, 8, count), "pump": pick.uniform(50, 900, count),
        "pump_volume": pick.uniform(0, 0.01, count), "cable_area": pick.uniform(0, 2e-4, count), "bore": bore,
        "outside": bore + 2 * wall, "head": pick.uniform(0, 8e5, count), "gamma": pick.uniform(9600, 9810, count),
        "modulus": 10 ** pick.uniform(8.2, 11.3, count), "poisson": pick.uniform(0.25, 0.46, count),
    }  # fmt: skip


def common(s):
    return (s["length"], s["level"], s["pipe"], s["cable"], s["pump"], s["pump_volume"], s["cable_area"],
            tension.area_bore_m2(s["bore"]), tension.area_bore_m2(s["outside"]))  # fmt: skip


def test_reference_bar_of_elements_reproduces_tension_and_stretch():
    """2,000 strings as bars of 400 elements, forces gathered node by node from the pump up: within 0.1 %.

    Independent of the closed forms: each element takes its weight in air and the pressure on its own end faces; the
    bottom plug takes pressure inside and out; a prismatic bore and outside take no axial pressure. Water in the bore is
    therefore counted once, as the pressure on the plug.
    """
    count, elements = 2000, 400
    s = {k: v[:, None] for k, v in strings(count, 5).items()}
    edges = np.linspace(0, 1, elements + 1)[None, :] * s["length"]
    middle, step = (edges[:, 1:] + edges[:, :-1]) / 2, s["length"] / elements
    a_in, a_out = np.pi / 4 * s["bore"] ** 2, np.pi / 4 * s["outside"] ** 2

    def outside_pressure(z):
        return s["gamma"] * np.clip(z - s["level"], 0, None)

    # forces along the string, down positive
    wet = np.clip(edges[:, 1:] - s["level"], 0, step)  # submerged part of each element
    cable = s["cable"] * step - s["gamma"] * s["cable_area"] * wet
    pull = s["pipe"] * step + cable
    bottom = (s["head"] + s["gamma"] * s["length"]) * a_in - outside_pressure(s["length"]) * a_out
    pump = s["pump"] - s["gamma"] * s["pump_volume"] * (s["level"] < s["length"])
    below = np.cumsum(pull[:, ::-1], axis=1)[:, ::-1]  # weight of the elements at and below each
    at_top = below + bottom + pump
    at_middle = at_top - pull / 2
    inside = s["head"] + s["gamma"] * middle
    # strain of a closed thick ring from its mean hoop and radial stress, one element at a time
    across = (inside * a_in - outside_pressure(middle) * a_out) / (a_out - a_in)
    strain = (at_middle / (a_out - a_in) - 2 * s["poisson"] * across) / s["modulus"]
    lengthened = (strain * step).sum(axis=1)

    flat = {k: v[:, 0] for k, v in s.items()}
    top = tension.load_hanging_n(*common(flat), flat["head"], flat["gamma"])
    np.testing.assert_allclose(top, at_top[:, 0], rtol=1e-3)
    for share in (0.25, 0.6, 0.95):
        node = round(share * elements)
        bore = s["head"][:, 0] + s["gamma"][:, 0] * edges[:, node]
        found = tension.load_axial_n(edges[:, node], *common(flat), bore, flat["gamma"])
        np.testing.assert_allclose(found, at_top[:, node], rtol=1e-3, atol=1e-3 * np.abs(at_top[:, 0]).max() / 1e3)
    found = stretch.stretch_m(*common(flat), flat["head"], flat["gamma"], flat["modulus"], flat["poisson"])
    scale = np.abs(strain * step).sum(axis=1)
    assert (np.abs(found - lengthened) <= 1e-3 * scale).all()


def test_reference_stretch_by_general_quadrature():
    """SciPy's adaptive quadrature of the strain along 60 strings: within 1e-7."""
    integrate = pytest.importorskip("scipy.integrate", reason="SciPy is not installed")
    s = strings(60, 9)
    whole = stretch.stretch_m(*common(s), s["head"], s["gamma"], s["modulus"], s["poisson"])
    for i in range(60):
        one = {k: float(v[i]) for k, v in s.items()}

        def strain(z, one=one):
            inside = one["head"] + one["gamma"] * z
            outside = one["gamma"] * max(0.0, z - one["level"])
            load = tension.load_axial_n(z, *common(one), inside, one["gamma"])
            areas = (tension.area_bore_m2(one["bore"]), tension.area_bore_m2(one["outside"]))
            return float(stretch.strain_axial(load, inside, outside, *areas, one["modulus"], one["poisson"]))

        turn = min(one["level"], one["length"])
        parts = [integrate.quad(strain, a, b)[0] for a, b in ((0.0, turn), (turn, one["length"])) if b > a]
        assert sum(parts) == pytest.approx(whole[i], rel=1e-7, abs=1e-12)


def test_reference_lame_by_a_boundary_value_solver():
    """Radial balance d(r s_r)/dr = s_h with Hooke's law in plane stress, solved numerically: hoop at the bore in 1e-5."""
    integrate = pytest.importorskip("scipy.integrate", reason="SciPy is not installed")
    inner, outer, p_in, p_out, nu = 0.0133, 0.0163, 1.1e6, 2.0e5, 0.45

    # u'' + u'/r - u/r^2 = 0, with radial stress (u' + nu u/r)/(1 - nu^2) given at both faces (modulus 1)
    def slope(r, y):
        return np.vstack([y[1], y[0] / r**2 - y[1] / r])

    def ends(a, b):
        radial = [(y[1] + nu * y[0] / r) / (1 - nu**2) for y, r in ((a, inner), (b, outer))]
        return np.array([radial[0] + p_in / 1e6, radial[1] + p_out / 1e6])

    radii = np.linspace(inner, outer, 60)
    solved = integrate.solve_bvp(slope, ends, radii, np.zeros((2, 60)), tol=1e-10, max_nodes=100_000)
    u, du = solved.sol(inner)
    hoop = (u / inner + nu * du) / (1 - nu**2) * 1e6
    assert pressure.stress_hoop_bore_pa(p_in, p_out, 2 * outer, 2 * inner) == pytest.approx(hoop, rel=1e-5)


def test_reference_equivalent_stress_by_principal_differences_of_a_tensor():
    """Distortion energy from the deviator of a stress tensor (textbook), sqrt(3/2 s:s), by numpy."""
    pick = np.random.default_rng(2)
    for hoop, axial, radial in pick.uniform(-5e7, 2e8, (40, 3)):
        tensor = np.diag([hoop, axial, radial])
        deviator = tensor - np.trace(tensor) / 3 * np.eye(3)
        expected = np.sqrt(1.5 * (deviator * deviator).sum())
        assert pressure.stress_equivalent_pa(hoop, axial, radial) == pytest.approx(expected, rel=1e-12)
    # closed end, no other load: axial is half the net of hoop and radial; textbook sqrt(3)/2 of their difference
    bore, outside, p = 0.03, 0.04, 2e6
    closed = p * np.pi / 4 * bore**2
    hoop = float(pressure.stress_hoop_bore_pa(p, 0.0, outside, bore))
    assert strength.stress_combined_pa(closed, p, 0.0, outside, bore) == pytest.approx(np.sqrt(3) / 2 * (hoop + p))


def test_reference_storage_against_counting_cylinders():
    """Storage by slices of a centimetre, inflow by the minute (counting)."""
    slices = np.arange(0.005, 200, 0.01)
    for depth, static, clearance, bore, yields, hours in ((36.5, 5, 5, 0.152, 6, 2), (80, 20.5, 3, 0.2, 2, 8), (12, 11, 4, 0.15, 3, 1)):
        counted = ((slices > static) & (slices < depth - clearance)).sum() * 0.01 * np.pi / 4 * bore**2
        counted += sum(yields / 1000 for _ in range(hours * 60))
        found = well.volume_available_m3(depth, static, clearance, bore, yields / 60000, hours * 3600)
        assert found == pytest.approx(counted, rel=1e-3)

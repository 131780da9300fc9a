"""The three fuels as molecules, their heating values, and the heat in their flue gas.

Gross (higher) heating values throughout: water in the flue gas counted as if it had condensed.
"""

from dataclasses import dataclass

from fleet.engineering.checks import Num

AIR_O2_PERCENT = 21.0  # with 79 nitrogen, the air of printed tables (S31); true dry air is 20.95 and some argon
LATENT_KJ_MOL = 44.004  # evaporation of water at 25 degC, IAPWS


@dataclass(frozen=True, slots=True)
class Fuel:
    """One mole of the burnable mixture: its atoms, its nitrogen, its gross heat; how it is sold and its heating value.

    `gross` is in Btu per `sold_by` (ft3 at 60 F and 14.7 psia, or gal); `siegert` are A1, A2, B and CO2max in %.
    """

    code: str
    name: str
    carbon: float
    hydrogen: float
    nitrogen_mol: float
    gross_kj_mol: float
    gross: float
    sold_by: str
    source: str
    siegert: tuple[float, float, float, float]

    @property
    def oxygen_mol(self) -> float:
        """Oxygen for complete combustion, mol in a mol of fuel."""
        return self.carbon + self.hydrogen / 4

    @property
    def dry_flue_mol(self) -> float:
        """Dry flue gas without excess air, mol in a mol of fuel."""
        return self.carbon + self.nitrogen_mol + self.oxygen_mol * (100 / AIR_O2_PERCENT - 1)

    @property
    def water_mol(self) -> float:
        """Water formed, mol in a mol of fuel."""
        return self.hydrogen / 2

    @property
    def co2_max_percent(self) -> float:
        """Carbon dioxide in dry flue gas without excess air, %."""
        return 100 * self.carbon / self.dry_flue_mol

    @property
    def net_to_gross(self) -> float:
        """Net (lower) as a share of the gross heating value."""
        return 1 - self.water_mol * LATENT_KJ_MOL / self.gross_kj_mol


# Heats of combustion of the gases at 25 degC: ISO 6976, from memory (890.58, 1560.69, 2219.17 kJ/mol). The gas is
# 94 % methane, 4 % ethane, 2 % nitrogen, which gives the excess-air column of S31. Oil is CH1.8 (published values,
# section 6.1) at 19 450 Btu/lb, from memory; its molar heat is 13.825 g/mol times that. Siegert's numbers: section 6.1.
FUELS = {
    fuel.code: fuel
    for fuel in (
        Fuel(
            "natural_gas",
            "natural gas",
            carbon=1.02,
            hydrogen=4.0,
            nitrogen_mol=0.02,
            gross_kj_mol=0.94 * 890.58 + 0.04 * 1560.69,
            gross=1026.0,
            sold_by="ft3",
            source="40 CFR 98 Table NN-1 (S35)",
            siegert=(0.37, 0.66, 0.009, 11.8),
        ),
        Fuel(
            "oil_2",
            "No. 2 oil",
            carbon=1.0,
            hydrogen=1.8,
            nitrogen_mol=0.0,
            gross_kj_mol=625.5,
            gross=138_690.0,
            sold_by="gal",
            source="40 CFR 98 Table NN-1 (S35): 5.825 MMBtu a barrel of 42 gal",
            siegert=(0.50, 0.68, 0.007, 15.4),
        ),
        Fuel(
            "propane",
            "propane",
            carbon=3.0,
            hydrogen=8.0,
            nitrogen_mol=0.0,
            gross_kj_mol=2219.17,
            gross=2516.0,
            sold_by="ft3",
            source="2500 to 2516 Btu/ft3, from memory; 2514 computed",
            siegert=(0.42, 0.63, 0.008, 13.8),
        ),
    )
}

# Coefficients a1 to a5 of cp/R = a1 + a2 T + ... + a5 T^4, 200 to 1000 K: the thermodynamic file of GRI-Mech 3.0.
NASA = {
    "CO2": (2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13),
    "H2O": (4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12),
    "N2": (3.298677, 1.4082404e-3, -3.963222e-6, 5.641515e-9, -2.444854e-12),
    "O2": (3.78245636, -2.99673416e-3, 9.84730201e-6, -9.68129509e-9, 3.24372837e-12),
}
GAS_CONSTANT_KJ_MOL_K = 8.31446261815324e-3


def heat_kj_mol(gas: str, hot_k: Num, cold_k: Num) -> Num:
    """Return the heat in kJ that a mole of CO2, H2O (vapour), N2 or O2 gives from `hot_k` down to `cold_k` (250-1000).

    Within 0.3 % of measured ideal-gas enthalpies; ranges are the caller's to check. Source: GRI-Mech 3.0.
    """
    return _enthalpy_kj_mol(NASA[gas], hot_k) - _enthalpy_kj_mol(NASA[gas], cold_k)


def _enthalpy_kj_mol(coefficients: tuple[float, ...], kelvin: Num) -> Num:
    series = coefficients[0] + kelvin * (
        coefficients[1] / 2
        + kelvin * (coefficients[2] / 3 + kelvin * (coefficients[3] / 4 + kelvin * (coefficients[4] / 5)))
    )
    return GAS_CONSTANT_KJ_MOL_K * kelvin * series

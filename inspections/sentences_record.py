"""What a record says in words beside its figures."""

from django.utils.translation import gettext_lazy as _

SIGNATURE_MEANING = _("Signed as responsible: the readings are as they were taken, and the check is released.")
RESULTS_RELATE = _("The results are about the unit named above, as it was on that day, and about nothing else.")
ONLY_IN_FULL = _("This record is not to be copied except in full.")
SUPPLIED_BY_OTHERS = _(
    "Rated figures, vehicle details and counter readings are as they were entered from the sources named; "
    "a wrong one would make the verdict wrong."
)
FIGURES_MEAN = [
    _("A current is given as what the stage would draw at the voltage and coil temperature that its rating holds at."),
    _("± is the expanded uncertainty U with its coverage factor k; for k = 2 the value is inside 95 times in 100."),
    _("Clear inside or outside means by more than the guard band; nearer to a limit than that it is not certain."),
    _("Torque goes roughly with the square of the current; air gap, rotor and control are not part of it."),
]

"""The voltages and currents that the forward circuit answers with, and what a workshop reads of them."""

from dataclasses import dataclass

from calc.arrays import Floats


@dataclass(frozen=True, slots=True)
class Solution:
    """Node voltages against the battery's negative post [V] and currents [A]; stage values have shape (…, stages)."""

    battery_positive_v: Floats
    stud_v: Floats
    frame_v: Floats
    chassis_v: Floats
    fuse_output_v: Floats
    output_v: Floats
    lead_end_v: Floats
    current_a: Floats
    stage_current_a: Floats
    string_current_a: Floats

    @property
    def supply_voltage_v(self) -> Floats:
        """Return the box's supply stud to chassis.  [V]"""
        return self.stud_v - self.chassis_v

    @property
    def output_voltage_v(self) -> Floats:
        """Return each stage output to chassis.  [V]"""
        return self.output_v - self.chassis_v[..., None]

    @property
    def contact_drop_v(self) -> Floats:
        """Return the supply stud to each stage output, fuse and contact together.  [V]"""
        return self.stud_v[..., None] - self.output_v

    @property
    def fuse_drop_v(self) -> Floats:
        """Return the drop across each stage fuse.  [V]"""
        return self.stud_v[..., None] - self.fuse_output_v

    @property
    def supply_drop_v(self) -> Floats:
        """Return the battery's positive post to the supply stud.  [V]"""
        return self.battery_positive_v - self.stud_v

    @property
    def chassis_ground_drop_v(self) -> Floats:
        """Return the chassis to the battery's negative post.  [V]"""
        return self.chassis_v

    @property
    def frame_ground_drop_v(self) -> Floats:
        """Return the retarder frame to chassis.  [V]"""
        return self.frame_v - self.chassis_v

    @property
    def battery_voltage_v(self) -> Floats:
        """Return the voltage across the battery posts.  [V]"""
        return self.battery_positive_v

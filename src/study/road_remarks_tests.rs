use super::*;

#[test]
fn the_speed_on_the_flat_is_the_root_of_the_balance() {
    // 250 W at the wheel, ½ρ CdA of 0.192 kg/m, 3.7 N of tyres: put back into the balance (D).
    let speed = flat_speed_m_s(250.0, 0.192, 3.7).unwrap();
    let power = speed * (0.192 * speed * speed + 3.7 + bearing_force_n(speed));
    assert!((power - 250.0).abs() < 1e-9, "{power}");
    assert_eq!(flat_speed_m_s(-5.0, 0.192, 3.7).filter(|v| *v > 0.0), None);
}

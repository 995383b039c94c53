//! Messages of any bytes.

/// Bytes as they are, without their length before them.
pub struct Bare<'a>(pub &'a [u8]);

impl serde::Serialize for Bare<'_> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeTuple;
        let mut tuple = serializer.serialize_tuple(self.0.len())?;
        self.0.iter().try_for_each(|byte| tuple.serialize_element(byte))?;
        tuple.end()
    }
}

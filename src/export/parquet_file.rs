//! A table as Parquet: one row group, every column optional, nothing compressed.

use super::{Table, Values};
use crate::error::{Fault, Result};
use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::Type;
use std::sync::Arc;

/// The same table gives the same bytes.
pub(super) fn bytes(table: &Table) -> Result<Vec<u8>> {
    written(table).map_err(|error| {
        Fault::new(
            format!(
                "the table '{}' cannot be written as Parquet ({error})",
                table.name
            ),
            "Please report it; --only csv writes the other format.",
        )
        .into()
    })
}

fn written(table: &Table) -> std::result::Result<Vec<u8>, ParquetError> {
    let fields = table.columns.iter().map(|column| {
        let (physical, logical) = match column.values {
            Values::Text(_) => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            Values::Number(_) => (Physical::DOUBLE, None),
            Values::Count(_) => (Physical::INT64, None),
            Values::Flag(_) => (Physical::BOOLEAN, None),
        };
        Type::primitive_type_builder(column.name, physical)
            .with_logical_type(logical)
            .with_repetition(Repetition::OPTIONAL)
            .build()
            .map(Arc::new)
    });
    let schema = Type::group_type_builder(table.name)
        .with_fields(fields.collect::<std::result::Result<_, _>>()?)
        .build()?;
    let properties = WriterProperties::builder()
        .set_created_by(concat!("stillair ", env!("CARGO_PKG_VERSION")).to_string())
        .build();
    let mut bytes = Vec::new();
    let mut out = SerializedFileWriter::new(&mut bytes, Arc::new(schema), Arc::new(properties))?;
    let mut group = out.next_row_group()?;
    for column in &table.columns {
        let Some(mut writer) = group.next_column()? else {
            break;
        };
        match &column.values {
            Values::Text(values) => put::<ByteArrayType, _>(&mut writer, values, |text| {
                ByteArray::from(text.as_bytes().to_vec())
            }),
            Values::Number(values) => put::<DoubleType, _>(&mut writer, values, |value| *value),
            Values::Count(values) => put::<Int64Type, _>(&mut writer, values, |value| *value),
            Values::Flag(values) => put::<BoolType, _>(&mut writer, values, |value| *value),
        }?;
        writer.close()?;
    }
    group.close()?;
    out.close()?;
    Ok(bytes)
}

/// A level of 1 says that there is a value.
fn put<D: DataType, T>(
    writer: &mut SerializedColumnWriter<'_>,
    values: &[Option<T>],
    native: impl Fn(&T) -> D::T,
) -> std::result::Result<(), ParquetError> {
    let levels: Vec<i16> = values.iter().map(|value| i16::from(value.is_some())).collect();
    let there: Vec<D::T> = values.iter().flatten().map(native).collect();
    writer.typed::<D>().write_batch(&there, Some(&levels), None)?;
    Ok(())
}

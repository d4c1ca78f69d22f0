//! Messages with every kind of field, for tests of the codec and the checks.
//! It is compiled when tests run and is never part of the contract.

use std::sync::LazyLock;

use prost_reflect::{DescriptorPool, MessageDescriptor};

use crate::shape::{Shape, Table};

static POOL: LazyLock<DescriptorPool> = LazyLock::new(|| pool_of("sample.proto").unwrap());
pub static TABLE: LazyLock<Table> = LazyLock::new(|| Table::of(&POOL));

/// Compiles a file of the folder tests/proto beside the contract.
fn pool_of(file: &str) -> Result<DescriptorPool, protox::Error> {
    let folder = env!("CARGO_MANIFEST_DIR");
    let includes = [format!("{folder}/tests/proto"), format!("{folder}/../../proto")];
    let mut compiler = protox::Compiler::new(includes)?;
    compiler.include_imports(true).open_file(file)?;
    let set = compiler.encode_file_descriptor_set();
    Ok(DescriptorPool::decode(set.as_slice()).unwrap())
}

/// Compiles a text as a file of its own beside the contract.
pub fn pool_of_text(text: &str) -> DescriptorPool {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("text.proto"), text).unwrap();
    let contract = format!("{}/../../proto", env!("CARGO_MANIFEST_DIR"));
    let mut compiler = protox::Compiler::new([folder.path(), contract.as_ref()]).unwrap();
    compiler.include_imports(true).open_file("text.proto").unwrap();
    DescriptorPool::decode(compiler.encode_file_descriptor_set().as_slice()).unwrap()
}

/// A message of the sample.
pub fn descriptor(name: &str) -> MessageDescriptor {
    POOL.get_message_by_name(&format!("sample.{name}")).unwrap()
}

/// The shape of a message of the sample.
pub fn shape(name: &str) -> &'static Shape {
    TABLE.find(&format!("sample.{name}")).unwrap()
}

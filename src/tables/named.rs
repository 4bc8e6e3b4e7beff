//! Tables of constants of which the program knows every name: a field of a struct for each row.

/// A struct with a field for every row of a table of constants, and its reader. The text says whose constants they are, for errors.
macro_rules! named_constants {
    ($(#[$about:meta])* $table:ident: $whose:literal; $($(#[$doc:meta])* $name:ident),+ $(,)?) => {
        $(#[$about])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $table {
            $($(#[$doc])* pub $name: f64),+
        }

        impl $table {
            pub(super) fn read(file: &super::TableFile) -> Result<Self, super::TableError> {
                let rows = super::model::named_values(file, &[$(stringify!($name)),+], $whose)?;
                Ok(Self { $($name: rows(stringify!($name))?),+ })
            }
        }
    };
}

pub(super) use named_constants;

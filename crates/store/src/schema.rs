//! The schema and its migrations: forward only, in this order, each in one transaction, after a copy of the
//! database when data is there.

use crate::OpenError;
use crate::folder;
use sqlx::sqlite::SqliteConnection;
use sqlx::{AssertSqlSafe, Connection};
use std::path::{Path, PathBuf};

/// Migration n (from 1) leads to schema version n. A line that has shipped is never edited; a change is a new line.
pub(crate) const MIGRATIONS: &[&str] = &[
    include_str!("schema.sql"),
    include_str!("schema-2.sql"),
    include_str!("schema-3.sql"),
    include_str!("schema-4.sql"),
];

/// Marks the database as ours (`PRAGMA application_id`): the bytes of "Serr".
const APPLICATION_ID: i64 = 0x5365_7272;

/// Schema version of a database, after a look at whose it is.
pub(crate) async fn version(
    conn: &mut SqliteConnection,
    dir: &Path,
    file: &Path,
    known: usize,
) -> Result<usize, OpenError> {
    let sql = |e| OpenError::sql(file, &e);
    let found: i64 = sqlx::query_scalar("PRAGMA user_version").fetch_one(&mut *conn).await.map_err(sql)?;
    let owner: i64 = sqlx::query_scalar("PRAGMA application_id").fetch_one(&mut *conn).await.map_err(sql)?;
    let tables: i64 =
        sqlx::query_scalar("SELECT count(*) FROM sqlite_schema").fetch_one(&mut *conn).await.map_err(sql)?;
    let foreign = if found == 0 { tables > 0 } else { owner != APPLICATION_ID };
    if foreign {
        return Err(OpenError::Unusable {
            path: file.to_owned(),
            what: "this database belongs to another program".to_owned(),
            remedy: "Give another folder with --data.".to_owned(),
        });
    }
    match usize::try_from(found) {
        Ok(n) if n <= known => Ok(n),
        _ => Err(OpenError::Newer {
            folder: dir.to_owned(),
            found,
            known: i64::try_from(known).unwrap_or(i64::MAX),
        }),
    }
}

/// Brings a database to the last of `migrations`; tells where the copy from before is, where one was made.
pub(crate) async fn migrate(
    conn: &mut SqliteConnection,
    dir: &Path,
    file: &Path,
    migrations: &[&'static str],
) -> Result<Option<PathBuf>, OpenError> {
    let sql = |e| OpenError::sql(file, &e);
    let from = version(conn, dir, file, migrations.len()).await?;
    if from == migrations.len() {
        return Ok(None);
    }
    let copy = if from > 0 { Some(copy_before(conn, dir, from).await?) } else { None };
    for (n, migration) in migrations.iter().enumerate().skip(from) {
        let mut tx = conn.begin_with("BEGIN IMMEDIATE").await.map_err(sql)?;
        sqlx::raw_sql(*migration).execute(&mut *tx).await.map_err(sql)?;
        // Pragmas take no bound values; both are numbers of our own.
        let mark = format!("PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {}", n + 1);
        sqlx::raw_sql(AssertSqlSafe(mark)).execute(&mut *tx).await.map_err(sql)?;
        tx.commit().await.map_err(sql)?;
    }
    Ok(copy)
}

/// Copies the database as it was at schema version `from` beside itself, synced.
async fn copy_before(conn: &mut SqliteConnection, dir: &Path, from: usize) -> Result<PathBuf, OpenError> {
    let copy = dir.join(format!("serrata.before-schema-{}.sqlite", from + 1));
    let io = |e| OpenError::io(&copy, "copying the database before an upgrade", &e);
    match std::fs::remove_file(&copy) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(io(e)),
        _ => {} // a copy that an upgrade broken off has left is made anew
    }
    vacuum_into(conn, &copy).await.map_err(|e| OpenError::sql(&copy, &e))?;
    folder::sync_file(&copy).and_then(|()| folder::sync_folder(dir)).map_err(io)?;
    Ok(copy)
}

/// Writes a consistent copy of the database to a new file.
pub(crate) async fn vacuum_into(conn: &mut SqliteConnection, to: &Path) -> Result<(), sqlx::Error> {
    let name = to
        .to_str()
        .ok_or_else(|| sqlx::Error::Configuration("the folder's name is not valid UTF-8".into()))?;
    sqlx::query("VACUUM INTO ?").bind(name).execute(conn).await.map(|_| ())
}

#[cfg(test)]
mod tests {
    use super::*;
    use sqlx::ConnectOptions;
    use sqlx::sqlite::SqliteConnectOptions;

    async fn connect(file: &Path) -> SqliteConnection {
        SqliteConnectOptions::new().filename(file).create_if_missing(true).connect().await.unwrap()
    }

    const FIRST: &str = "CREATE TABLE a (x INTEGER)";
    const SECOND: &str = "ALTER TABLE a ADD COLUMN y INTEGER NOT NULL DEFAULT 5";

    #[tokio::test]
    async fn an_upgrade_copies_first_and_keeps_what_is_there() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("serrata.sqlite");
        let mut conn = connect(&file).await;
        assert_eq!(
            migrate(&mut conn, dir.path(), &file, &[FIRST]).await.unwrap(),
            None,
            "nothing to copy yet"
        );
        sqlx::query("INSERT INTO a VALUES (3)").execute(&mut conn).await.unwrap();
        let copy = migrate(&mut conn, dir.path(), &file, &[FIRST, SECOND]).await.unwrap().unwrap();
        assert!(copy.ends_with("serrata.before-schema-2.sqlite"));
        assert_eq!(migrate(&mut conn, dir.path(), &file, &[FIRST, SECOND]).await.unwrap(), None, "once only");
        let sum: i64 = sqlx::query_scalar("SELECT x + y FROM a").fetch_one(&mut conn).await.unwrap();
        assert_eq!(sum, 8);
        let mut old = connect(&copy).await;
        assert_eq!(version(&mut old, dir.path(), &copy, 2).await.unwrap(), 1);
        let x: i64 = sqlx::query_scalar("SELECT x FROM a").fetch_one(&mut old).await.unwrap();
        assert_eq!(x, 3);
    }

    #[tokio::test]
    async fn an_upgrade_that_fails_leaves_the_version_before() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("serrata.sqlite");
        let mut conn = connect(&file).await;
        migrate(&mut conn, dir.path(), &file, &[FIRST]).await.unwrap();
        let broken = "CREATE TABLE b (x); SELECT no_such_function()";
        assert!(migrate(&mut conn, dir.path(), &file, &[FIRST, broken]).await.is_err());
        assert_eq!(version(&mut conn, dir.path(), &file, 2).await.unwrap(), 1);
        let b: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema WHERE name = 'b'")
            .fetch_one(&mut conn)
            .await
            .unwrap();
        assert_eq!(b, 0, "nothing half-made stays");
    }
}

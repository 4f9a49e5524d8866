package ldanotes.server;

import ca.uhn.fhir.batch2.jobs.config.Batch2JobsConfig;
import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.jpa.api.IDaoRegistry;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.config.ThreadPoolFactoryConfig;
import ca.uhn.fhir.jpa.batch2.JpaBatch2Config;
import ca.uhn.fhir.jpa.config.HapiJpaConfig;
import ca.uhn.fhir.jpa.config.r4.JpaR4Config;
import ca.uhn.fhir.jpa.config.util.HapiEntityManagerFactoryUtil;
import ca.uhn.fhir.jpa.model.config.PartitionSettings;
import ca.uhn.fhir.jpa.model.config.SubscriptionSettings;
import ca.uhn.fhir.jpa.model.dialect.HapiFhirH2Dialect;
import ca.uhn.fhir.jpa.provider.DaoRegistryResourceSupportedSvc;
import ca.uhn.fhir.jpa.search.DatabaseBackedPagingProvider;
import ca.uhn.fhir.jpa.subscription.channel.config.SubscriptionChannelConfig;
import ca.uhn.fhir.rest.api.IResourceSupportedSvc;
import jakarta.persistence.EntityManagerFactory;
import java.util.Properties;
import javax.sql.DataSource;
import org.apache.commons.dbcp2.BasicDataSource;
import org.springframework.beans.factory.config.ConfigurableListableBeanFactory;
import org.springframework.context.annotation.Bean;
import org.springframework.context.annotation.Configuration;
import org.springframework.context.annotation.Import;
import org.springframework.context.annotation.Primary;
import org.springframework.orm.jpa.JpaTransactionManager;
import org.springframework.orm.jpa.LocalContainerEntityManagerFactoryBean;

/**
 * Everything behind the FHIR interface: the database and the settings that decide what is accepted.
 *
 * <p>The database is in memory, or in the file that the system property {@code contract.database} names.
 */
@Configuration
@Import({
    JpaR4Config.class,
    HapiJpaConfig.class,
    JpaBatch2Config.class,
    Batch2JobsConfig.class,
    SubscriptionChannelConfig.class, // the in-process queue that the batch jobs need
    ThreadPoolFactoryConfig.class
})
public class Storage {
    private static final int LARGEST_PAGE = 500;

    @Bean
    public JpaStorageSettings storageSettings() {
        JpaStorageSettings settings = new JpaStorageSettings();
        settings.setReuseCachedSearchResultsForMillis(null); // a search right after a write must see the write
        settings.setAllowMultipleDelete(true);
        return settings;
    }

    @Bean
    public PartitionSettings partitionSettings() {
        return new PartitionSettings();
    }

    @Bean
    public SubscriptionSettings subscriptionSettings() {
        return new SubscriptionSettings();
    }

    @Bean(destroyMethod = "close")
    public DataSource dataSource() {
        BasicDataSource pool = new BasicDataSource();
        pool.setDriver(new org.h2.Driver());
        String file = System.getProperty("contract.database");
        // In a file, what was answered must be there after a kill: hence no delay between commit and write.
        pool.setUrl(file == null ? "jdbc:h2:mem:contract;DB_CLOSE_DELAY=-1" : "jdbc:h2:file:" + file + ";WRITE_DELAY=0");
        pool.setUsername("sa");
        pool.setPassword("");
        pool.setMaxTotal(20);
        return pool;
    }

    @Primary
    @Bean
    public LocalContainerEntityManagerFactoryBean entityManagerFactory(
            DataSource dataSource,
            ConfigurableListableBeanFactory beans,
            FhirContext context,
            JpaStorageSettings settings) {
        Properties properties = new Properties();
        properties.put("hibernate.dialect", HapiFhirH2Dialect.class.getName());
        properties.put("hibernate.hbm2ddl.auto", "update");
        properties.put("hibernate.jdbc.batch_size", "20");
        properties.put("hibernate.search.enabled", "false"); // no full-text search: nothing here asks for it
        LocalContainerEntityManagerFactoryBean factory =
                HapiEntityManagerFactoryUtil.newEntityManagerFactory(beans, context, settings);
        factory.setPersistenceUnitName("contract");
        factory.setDataSource(dataSource);
        factory.setJpaProperties(properties);
        return factory;
    }

    @Primary
    @Bean
    public JpaTransactionManager transactionManager(EntityManagerFactory factory) {
        return new JpaTransactionManager(factory);
    }

    @Bean
    public IResourceSupportedSvc resourceSupportedSvc(IDaoRegistry registry) {
        return new DaoRegistryResourceSupportedSvc(registry);
    }

    @Bean
    public DatabaseBackedPagingProvider databaseBackedPagingProvider() {
        DatabaseBackedPagingProvider paging = new DatabaseBackedPagingProvider();
        paging.setDefaultPageSize(LARGEST_PAGE);
        paging.setMaximumPageSize(LARGEST_PAGE);
        return paging;
    }
}
